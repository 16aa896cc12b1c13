"""What the tests share: fakes, harnesses, kills and samples."""
