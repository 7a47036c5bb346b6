"""Goes through everything a page paints, and rewrites its colours as a mapping says."""
