/* The library says which interface it was built with; the entrance of an extension module is there for linkers alone. */
#include "core.h"

#define INTERFACE 3 /* one more whenever what a kernel takes changes: `INTERFACE` of the package says the same */

KERNEL interface(void) { return INTERFACE; }

#ifdef _WIN32
__declspec(dllexport)
#else
__attribute__((visibility("default")))
#endif
void *PyInit__compiled(void);

void *PyInit__compiled(void) { return 0; }
