"""The examples in docstrings are true."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import demo_data
import models
import pipeline
import reports
import sql


def _modules() -> list[str]:
    names = []
    for package in (demo_data, models, pipeline, reports, sql):
        names += [found.name for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")]
    names.remove("pipeline.workshop")  # its examples need a workshop: tests/face
    return names


@pytest.mark.parametrize("name", _modules())
def test_examples_of_a_module(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0
