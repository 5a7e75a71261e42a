package analysis
