"""Who reasons from what a seat has seen to what is wrong with the ride."""
