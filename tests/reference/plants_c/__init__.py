"""Third independent reference plants: the development set for diagnosis.

Findings may be developed and tuned on these plants; those of `plants_a` and `plants_b` stay held out. The
package shares no code with the product. It writes the same folders as the others (`site.toml`,
`readings.csv.gz`, `truth.json`), so `python -m tests.reference.score DIR` judges them. Usage:

    python -m tests.reference.plants_c --seeds 1:60 --out DIR [--family healthy|fault|all]
        [--metering full|random] [--days 90]

Even seeds are healthy, odd seeds have one fault; `--family fault` has each fault once before any twice.
The physics runs in steps of one minute: weather, house, emitters, water, unit, cylinder, controls, pressure.
`truth.json` states the fault with its day, ramp and size, what must and may be found, and the true figures.
"""

from pathlib import Path

from tests.reference.plants_b import drop_stale_cache

drop_stale_cache(Path(__file__).parent)
