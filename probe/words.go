package probe

import "fmt"

// mm writes a length as people read it.
func mm(v float64) string { return fmt.Sprintf("%.2f mm", v) }
