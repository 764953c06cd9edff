"""HTTP: blueprints, problem documents, the front end's files."""
