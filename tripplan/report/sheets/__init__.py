"""Day sheets: one neutral model of pages and blocks, and a writer each for HTML and PDF."""
