"""Independent reference simulators and the judge that scores the product on their plants.

- `python -m tests.reference.plants_a --seeds 1:60 --out DIR [--family fault] [--metering random]`: plants
  (even seeds healthy, odd seeds with one fault; `--family fault --seeds 1:54` has each fault once);
- `python -m tests.reference.plants_a --situations --out DIR`: short records of what an engineer meets;
- `python -m tests.reference.plants_c --seeds 1:60 --out DIR`: plants of the development set: findings may be
  tuned on these, never on those of plants_a and plants_b;
- `python -m tests.reference.score DIR [--jobs 2] [--json FILE] [--reuse] [--only TEXT]`: judge a folder
  of plants of any simulator.

A plant is a folder with `site.toml`, `readings.csv.gz` and `truth.json`. The simulators share no code
with the product.
"""
