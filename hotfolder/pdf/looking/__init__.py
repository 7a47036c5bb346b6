"""Looks at what a PDF holds, and changes nothing: pictures, text, fonts, layers, scripts."""
