"""The kinds of component, one file each: `KINDS` in `pneumo.components` is what is here."""
