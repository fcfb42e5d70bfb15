"""What a result looks like to a reader: drawings, charts, HTML, terminal text, JSON and CSV."""
