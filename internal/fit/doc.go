// Package fit answers whether pieces join: which vacuum port serves which user
// (Vacuum), which chain of parts brings fuel from the line to the inlet (FuelPath),
// what stacks up between manifold and hood (Stack, Figures) and how far levers and
// cables travel (Travel). All functions are pure and exact; the same input gives
// the same answer, byte for byte.
//
// FuelPath and Stack choose among parts but do not decide the purchase: a part may
// come in a bundle, meet other needs as well, or lie on the owner's shelf. They
// return every Option that could belong to one optimum over the whole kit and leave
// the choice to package pick.
package fit
