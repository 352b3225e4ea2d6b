"""One question a module: a worked-out job in, results and findings out."""
