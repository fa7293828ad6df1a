"""``python -m shopcalc``: the command line."""

import sys

from shopcalc.cli import main

if __name__ == "__main__":
    sys.exit(main())
