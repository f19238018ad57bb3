"""Each page and workbook: frames in, text and files out."""
