"""What is kept between sessions, in SQL: the only place that speaks to a database."""
