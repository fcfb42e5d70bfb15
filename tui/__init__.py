"""The screens of a running ride, for a terminal: they read a `Link` and send `Request`s.

Nothing of pneumo imports this package, except that the command line opens it on demand.
"""
