"""What every refusal of a file must have."""

import pytest

from shopcalc.errors import InputError


def faults_of(action, *args):
    """The faults of a call that must be refused: each names its file and a remedy, in one line."""
    with pytest.raises(InputError) as caught:
        action(*args)
    for f in caught.value.faults:
        assert f.file
        assert f.remedy
        assert "\n" not in str(f)
    return caught.value.faults
