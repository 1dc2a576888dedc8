"""What `plica prove` and `plica measure` show: tables, forms for other programs, and pictures."""
