module program

go 1.26
