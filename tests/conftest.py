"""What holds for all tests: property tests draw the same cases each time, so that a red run can be run again."""

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None, database=None)
settings.load_profile("same")
