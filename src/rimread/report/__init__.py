"""What people see: overlay pictures, readings in words, the test report."""
