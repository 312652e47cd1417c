"""Independent reference plants: homes with heat pumps, simulated by state machines and physics.

The package writes folders with a site file, the readings of that home's meters and the truth. It uses
nothing of the code that it judges. Usage:

    python -m tests.reference.plants_b --seeds 1:60 --out DIR [--family healthy|fault|all]
        [--metering full|random] [--situations]
"""

from pathlib import Path


def drop_stale_cache(folder: Path = Path(__file__).parent) -> None:
    """Delete compiled code that is older than any source file.

    Numba checks only the file of the compiled function, not those of the functions that it calls.
    """
    newest = max(path.stat().st_mtime for path in folder.glob("*.py"))
    for compiled in (folder / "__pycache__").glob("*.nb[ic]"):
        try:
            if compiled.stat().st_mtime < newest:
                compiled.unlink()
        except FileNotFoundError:  # another process was faster
            continue


drop_stale_cache()
