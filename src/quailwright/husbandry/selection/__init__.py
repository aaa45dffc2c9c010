"""What choosing breeders brings.

`traits` holds what is published of weight, eggs and egg weight; `response` the breeder's equation;
`index` how to weigh several records; `simulated` the same by chance, bird by bird.
"""
