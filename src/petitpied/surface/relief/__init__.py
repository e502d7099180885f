"""Dimples, peaks, lumps and pinholes: what stands out from the common dome."""
