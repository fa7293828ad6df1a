"""Make the demo's program files from its job files, by the package's own paths. Run it from anywhere.

    python data/make_demo_programs.py

The programs are invented demo data and say so in their first lines. A test makes them anew and compares.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from shopcalc.gcode import write_program
from shopcalc.jobs import open_job
from shopcalc.jobs.planning import plan_load
from shopcalc.shop import Shop

DATA = Path(__file__).resolve().parent

#: Programs whose feeds the (invented) operator lowered or raised while proving them: share of the planned feed.
PROVED = {"rail-ends": 0.8, "stile-mortises": 0.85, "end-panels": 1.15, "lid-lettering": 0.9, "gate-mortises": 0.85}


def programs() -> Iterator[tuple[Path, str]]:
    """Path and text of every program the demo jobs name."""
    shop = Shop.open(DATA)
    for file in sorted((DATA / "jobs").glob("*.toml")):
        job = open_job(file, shop, files_exist=False)
        for program in job.programs:
            if program.file is None:
                continue
            part = next(load.part for load in job.loads if load.program == program.id)
            moves = plan_load(job, program, part, shop).moves
            share = PROVED.get(program.id, 1.0)
            notes = [
                f"job: {job.name}; station: {program.station}",
                "invented demo data made by the paths of shopcalc, not proved on any machine",
                "check the greatest speed marked on each cutter before use; dry run first",
            ]
            if program.station == "end":
                notes.append("back-up block behind the exit of the cutter; clamp so that the end cannot lift")
            if share != 1.0:
                notes.append(f"feeds at {100 * share:.0f} percent of the planned ones, as if set while proving")
                moves = replace(moves, feed=np.floor(moves.feed * share / 10 + 1e-9) * 10)
            yield DATA / program.file, write_program(moves, title=program.title or program.id, notes=notes)


def main() -> int:
    """Write every file."""
    for path, text in programs():
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
        print(f"{path.relative_to(DATA)}: {text.count(chr(10))} lines")
    return 0


if __name__ == "__main__":
    sys.exit(main())
