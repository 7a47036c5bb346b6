"""The pictures inside a PDF: their samples read and written a few rows at a time, whatever their coding."""
