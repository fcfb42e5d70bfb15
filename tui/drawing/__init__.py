"""The circuit in character cells: what is drawn, where it stands, how it looks. No screen here."""
