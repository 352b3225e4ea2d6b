"""Recordings in both storages."""

import pytest

from support.bags import STORAGES, write


@pytest.fixture(params=STORAGES)
def storage(request):
    return request.param


@pytest.fixture
def bag(tmp_path, storage):
    """Write a recording of the states handed in."""
    return lambda states, **more: write(tmp_path / "bag", states, storage=storage, **more)
