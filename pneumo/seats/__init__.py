"""Two seats at one ride: the trainer's terminal hosts it, the trainee's joins over the network."""
