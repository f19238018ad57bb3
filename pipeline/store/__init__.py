"""The one database file of a workshop: opened safely, locked, backed up, exported."""
