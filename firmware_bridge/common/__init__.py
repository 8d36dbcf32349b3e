"""What several wings and rooms need, once: units, wording, tables of files, charges, the chamber's sensor."""
