"""Child programs: started isolated and limited, heard in JSON lines, given up in time."""
