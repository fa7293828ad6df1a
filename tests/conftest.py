"""What holds for all tests: property tests draw the same cases each time, so that a red run can be run again."""

import pytest
from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None, database=None)
settings.load_profile("same")


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory):
    """What is remembered of programs is kept apart from the user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
