"""The mappings: what may become of the colours of a PDF."""

from hotfolder.pdf.luminosity import ToLuminosity
from hotfolder.pdf.mapping import Mapping
from hotfolder.pdf.to_condition import ToCondition
from hotfolder.pdf.to_screen import ToScreen

__all__ = ["Mapping", "ToCondition", "ToLuminosity", "ToScreen"]
