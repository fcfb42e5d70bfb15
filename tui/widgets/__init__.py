"""Parts that several views are made of."""
