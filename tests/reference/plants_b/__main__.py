"""Command line: write reference plants to a folder."""

import argparse
import time
from pathlib import Path

from tests.reference.plants_b.build import write


def seeds(text: str) -> range:
    """Read "A:B" (both included) or one number."""
    first, _, last = text.partition(":")
    try:
        return range(int(first), int(last or first) + 1)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"seeds must be A:B or one number, for example 1:60, not {text!r}"
        ) from None


def main() -> None:
    """Write plants, and with --situations the invented situations."""
    parser = argparse.ArgumentParser(
        prog="plants_b", description="Write reference plants (site file, readings, truth)."
    )
    parser.add_argument("--seeds", type=seeds, default=None, help="A:B, both included")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--family", choices=["healthy", "fault", "all"], default="all")
    parser.add_argument("--metering", choices=["full", "random"], default="full")
    parser.add_argument("--situations", action="store_true")
    options = parser.parse_args()
    if options.seeds is None and not options.situations:
        parser.error("give --seeds A:B, --situations or both")
    for seed in options.seeds or ():
        began = time.process_time()
        folder = write(seed, options.out, options.family, options.metering)
        print(f"{folder.name}: {time.process_time() - began:.1f} s", flush=True)
    if options.situations:
        from tests.reference.situations_b import write_all

        for folder in write_all(options.out):
            print(folder.name, flush=True)


if __name__ == "__main__":
    main()
