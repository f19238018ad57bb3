"""Any file of records becomes numbered lines of text cells."""
