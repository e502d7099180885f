"""The lens chart, a lens measured with it, and which photo a measured lens belongs to. Pure."""
