"""From a circuit document to a checked circuit: reading, sentences, graph, checks, schema."""
