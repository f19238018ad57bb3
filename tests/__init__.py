"""Behaviour of priorjobs, in the folders of what is tested."""
