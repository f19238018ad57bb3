"""What all pages share: theme, words of a language, templates, PDF and PNG."""
