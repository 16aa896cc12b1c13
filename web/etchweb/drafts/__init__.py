"""*New picture*: drafts, step by step from photo to job."""
