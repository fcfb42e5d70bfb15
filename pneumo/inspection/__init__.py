"""What a technician finds at the machine: with a gauge, ears, eyes, a multimeter and a bar."""
