"""The workshop's own pages, served to a browser on this machine; every rule is the commands'."""
