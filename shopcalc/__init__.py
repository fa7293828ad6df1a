"""shopcalc: feeds, speeds, cycle time and price for a small custom woodworking shop."""
