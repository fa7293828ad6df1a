"""The public names are these, in order, and each can be had."""

import subprocess
import sys

import shopcalc

NAMES = [
    "InputError", "Moves", "Shop", "estimate", "machine_time", "open_job", "price", "read_program", "tune",
    "write_program",
]  # fmt: skip


def test_the_names_are_pinned_and_importable():
    assert shopcalc.__all__ == NAMES == sorted(shopcalc._HOMES)
    for name in NAMES:
        assert callable(getattr(shopcalc, name))


def test_importing_the_package_loads_nothing():
    code = "import sys, shopcalc; print([m for m in ('numpy', 'pint', 'pandas', 'plotly') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_control_is_loaded_when_it_is_asked_for_and_keeps_its_name_beside_its_module():
    code = (
        "import sys, shopcalc.controls as c; print([m for m in ('numpy', 'plotly', 'ipywidgets') if m in sys.modules]);"
        "import shopcalc.controls.lesson, shopcalc.controls.what_if;"
        "print(c.__all__ == sorted(c._HOMES), [n for n in c.__all__ if not callable(getattr(c, n))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:2] == ["[]", "True []"]
