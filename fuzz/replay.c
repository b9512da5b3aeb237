/* Runs a target over files and folders, without a fuzzing engine. Prints how many. */
#include "as_file.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>

static int count;

static int replay(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (!file)
        return 1;
    fseek(file, 0, SEEK_END);
    long length = ftell(file);
    rewind(file);
    uint8_t *data = malloc(length > 0 ? (size_t)length : 1); /* of its exact size: one byte too far is seen */
    int wrong = length < 0 || !data || fread(data, 1, (size_t)length, file) != (size_t)length;
    fclose(file);
    if (!wrong)
        LLVMFuzzerTestOneInput(data, (size_t)length);
    free(data);
    count += !wrong;
    return wrong;
}

int main(int argc, char **argv)
{
    int wrong = 0;
    for (int i = 1; i < argc; i++) {
        DIR *folder = opendir(argv[i]);
        for (struct dirent *entry; folder && (entry = readdir(folder));) {
            char path[4096];
            snprintf(path, sizeof path, "%s/%s", argv[i], entry->d_name);
            if (entry->d_name[0] != '.')
                wrong += replay(path);
        }
        if (folder)
            closedir(folder);
        else
            wrong += replay(argv[i]);
    }
    printf("%d inputs replayed\n", count);
    return wrong || !count;
}
