"""Benchmarks: each asserts its answer before it times it. Run with  python -m benchmarks"""
