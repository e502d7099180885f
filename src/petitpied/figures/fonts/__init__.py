"""Open fonts (Noto, SIL Open Font License) for the PDF report."""
