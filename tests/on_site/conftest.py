"""Workshops that are only read, opened once a worker."""

from tests.worlds.visit_fixtures import *  # noqa: F403
