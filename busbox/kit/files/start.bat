@echo off
rem Starts Busbox from the wheels beside this file: no network, no administrator rights.
setlocal
set "KIT=%~dp0"
set "PY=%KIT%venv\Scripts\python.exe"
if exist "%KIT%venv\installed.txt" goto start
set "FOUND="
py -@PYTHON@ -c "import sys; sys.exit(sys.maxsize < 2**32)" >nul 2>nul
if not errorlevel 1 set "FOUND=py -@PYTHON@"
if defined FOUND goto install
python -c "import sys; sys.exit(sys.version_info[:2] != (3, @MINOR@) or sys.maxsize < 2**32)" >nul 2>nul
if not errorlevel 1 set "FOUND=python"
if not defined FOUND goto nopython
:install
echo Installing Busbox into "%KIT%venv". This happens once.
%FOUND% -m venv --without-pip "%KIT%venv"
if errorlevel 1 goto failed
"%PY%" "%KIT%wheels\@PIP@\pip" --isolated install --quiet --no-index --find-links "%KIT%wheels" busbox
if errorlevel 1 goto failed
> "%KIT%venv\installed.txt" echo Busbox @VERSION@
:start
if "%~1"=="" goto prompt
"%PY%" -m busbox %*
exit /b %ERRORLEVEL%
:prompt
"%PY%" -m busbox lesson
set "PATH=%KIT%venv\Scripts;%PATH%"
echo.
echo This window knows the command busbox. The first task: busbox lesson 1
cmd /k
exit /b 0
:nopython
echo This kit needs Python @PYTHON@ with 64 bits, and did not find it.
echo Its installer needs no administrator rights if it installs for the present user only.
pause
exit /b 1
:failed
echo Busbox could not be installed. Delete the folder "%KIT%venv" and start again.
pause
exit /b 1
