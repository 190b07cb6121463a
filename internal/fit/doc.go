// Package fit answers whether pieces join: which chain of parts brings fuel from the line
// to the inlet (PathSearch over a Network), what stacks up between manifold and hood
// (StackSearch, Figures), which vacuum port serves which user (Vacuum) and how far levers
// and cables travel (travel.go). It is exact; the same input gives the same answer, byte
// for byte.
//
// PathSearch and StackSearch choose among parts but do not decide the purchase: a part may
// come in a bundle, meet other needs as well, or lie on the owner's shelf. They
// return every Option that could belong to one optimum over the whole kit and leave
// the choice to package pick.
//
// The fuel path: path.go is the search as others see it and the graph of joins, network.go
// what of that a catalogue decides once, path_choice.go the parts that may take a place,
// path_switch.go what bundles and other needs change, path_solve.go the shortest path, and
// path_together.go the search beside it for paths that take a fitting more than once. The
// stack: stack.go, then stack_search.go and stack_option.go.
package fit
