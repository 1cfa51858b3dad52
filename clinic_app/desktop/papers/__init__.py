"""What is printed: the same data give the sheet of the printer and the PDF."""
