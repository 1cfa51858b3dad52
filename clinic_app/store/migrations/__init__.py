"""One file for each revision of the schema, spelled out: none of them knows today's table of fields."""
