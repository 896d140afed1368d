"""Physical synthesis of necks and plucks, for the demo recordings, the benchmarks and the tests; never for measuring."""
