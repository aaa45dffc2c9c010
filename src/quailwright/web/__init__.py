"""The phone: pages made on the server, forms, an offline queue and a JSON API.

It holds no arithmetic and no rule: a handler asks one function below and shows what it gives.
"""
