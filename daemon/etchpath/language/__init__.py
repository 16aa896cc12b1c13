"""G-code as the controller reads it: RS-274/NGC (NISTIR 6556), narrowed to its dialect."""
