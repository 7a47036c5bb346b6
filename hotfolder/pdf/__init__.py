"""Reading and rewriting PDF: page boxes, the content walker, pictures, fonts, marks, sealing as PDF/X."""
