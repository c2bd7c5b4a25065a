"""Sessions and shots in a database: SQLAlchemy models, migrations, writing and the queries the page needs."""
