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
package fit
