"""The migrations, numbered. Each states its columns in full: it must not change when the models do."""
