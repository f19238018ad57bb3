"""The commands, one module a group; each parses, calls one thing on `Workshop`, prints."""
