/* Kernels compiled for the usual x86-64 machines and once more for wider ones, chosen when the program
 * starts. Left out where the compiler, the C library or a sanitizer does not support it; results are the same
 * either way. */
#ifndef SL_CORE_CLONES_H
#define SL_CORE_CLONES_H

#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__) &&             \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define SL_CLONES __attribute__((target_clones("default", "arch=x86-64-v3")))
#else
#define SL_CLONES
#endif

#endif
