"""Firmware for a microcontroller that reads thermocouple converters, and its line format."""
