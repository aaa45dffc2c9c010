"""The terminal: reads what is typed, calls one function below, shows what it gives."""
