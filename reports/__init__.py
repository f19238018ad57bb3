"""Pages, charts and workbooks from tidy frames: frames in, text and files out."""
