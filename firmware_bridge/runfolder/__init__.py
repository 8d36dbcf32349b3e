"""The run folder: its format, writer, reader, row check and seal."""
