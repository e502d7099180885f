"""The report: sentences and numbers made once, then shown as HTML, PDF and plain text."""
