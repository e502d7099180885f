"""`petitpied schema`: the record's JSON Schema."""

import typer


def schema() -> None:
    """Print the JSON Schema of the inspection record."""
    from petitpied.files.records.record_files import schema_text

    typer.echo(schema_text(), nl=False)
