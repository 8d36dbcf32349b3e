"""Ways to an instrument: Modbus, text lines; ports and who owns them."""
