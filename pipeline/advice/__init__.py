"""Parts that were often not the cause: found, kept, taken up."""
