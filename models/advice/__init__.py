"""Where a part is often not the cause, and whether advice helped."""
