"""The yardstick of a full lint: parse every TOML file of the folder with the standard library, and nothing else."""

import os
import tomllib

for folder in ("formulas", "materials"):
    for name in os.listdir(folder):
        with open(os.path.join(folder, name), "rb") as handle:
            tomllib.load(handle)
