"""Links to the furnace's instruments, the recorder, the run folder's format and the simulated furnace."""
