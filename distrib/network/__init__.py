"""Flow network: graph, element equations, sparse elimination and a batched damped Newton."""
