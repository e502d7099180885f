"""`petitpied bake`: the evening."""


def bake() -> None:
    """x"""
