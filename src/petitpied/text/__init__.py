"""All sentences, numbers and units for people. Pure: values in, text out."""
