"""The mappings: what may become of the colours of a PDF."""

from hotfolder.pdf.mappings.luminosity import ToLuminosity
from hotfolder.pdf.mappings.to_condition import ToCondition
from hotfolder.pdf.mappings.to_screen import ToScreen
from hotfolder.pdf.walk.mapping import Mapping

__all__ = ["Mapping", "ToCondition", "ToLuminosity", "ToScreen"]
