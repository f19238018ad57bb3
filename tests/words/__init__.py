"""Tests of the words of the trade."""
