"""The recorder: sampling schedule, events, marks, surviving faults."""
