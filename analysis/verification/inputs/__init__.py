"""Read and clean: readings, what is no temperature among them, sensor errors, who was in when."""
