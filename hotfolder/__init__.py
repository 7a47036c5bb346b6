"""hotfolder takes poster artwork from a folder, prepares it for the printer, and says what it found."""

__version__ = "0.1.0"
