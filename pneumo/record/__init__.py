"""A run kept on disk while it goes on, so that it can be continued after a kill."""
