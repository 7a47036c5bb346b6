"""What a colour's numbers mean in a PDF: colour spaces, and the functions that some of them need."""
