(body) @fold
