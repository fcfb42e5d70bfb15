"""Dialogs that lie over the views: help, confirmations, questions."""
